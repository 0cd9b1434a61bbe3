"""Stores as earlier versions of the program wrote them, as SQL, and what they answered then."""
