"""Work in other processes: how they begin and end, interrupts, the first compilation."""
