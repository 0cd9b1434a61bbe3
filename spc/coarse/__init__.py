"""Readings coarser than what they measure: rounded, repeated, or known only as "<0.05" or ">5000"."""
