"""Compiled kernels: plain arrays and numbers in, plain arrays and numbers out."""
