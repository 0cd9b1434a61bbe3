"""Faults of disks, databases, networks, clocks and files: each is said, each is recovered from, nothing is lost."""
