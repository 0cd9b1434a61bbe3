"""Which run rules a check should have: what they cost, how often they hit, what they would have caught."""
