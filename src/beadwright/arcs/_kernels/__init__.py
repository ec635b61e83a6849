"""Compiled kernels of the room `arcs`: flat arrays in, flat arrays out."""
