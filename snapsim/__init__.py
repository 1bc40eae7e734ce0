"""snapsim: what a part near a strong magnet will do when it is let go."""
