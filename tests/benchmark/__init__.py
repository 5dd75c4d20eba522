"""The benchmark the project carries: every figure is a ratio, or a median, within one run."""
