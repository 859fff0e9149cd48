"""Benches drawn with known truth: the invented demo, rehearsals, and the plan of an evening."""
