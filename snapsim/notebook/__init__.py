"""What Python users see beside the computing functions: figures, a view in 3-D, whole studies."""
