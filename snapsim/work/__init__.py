"""Work in other processes: interrupts, first compilation."""
