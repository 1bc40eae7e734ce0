"""Motion, contact and impact; knows nothing of magnetism: forces come in as a function."""
