"""What the air and the belt say: pure functions on arrays and frames, in SI, with no input or output."""
