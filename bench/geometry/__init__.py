"""Pure arrays in, numbers out. No input or output, no clock."""
