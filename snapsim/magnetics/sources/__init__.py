"""Fields of uniformly magnetised bodies and their gradients: one contract, one file each."""
