"""A school morning in fast time, with pocket phones."""
