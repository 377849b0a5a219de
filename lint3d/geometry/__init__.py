"""Kernels over plain arrays: no lint3d type goes in or out. Lengths in mm, float64."""
