"""The only room that draws: each figure from a tidy table on given Axes; nothing is computed here."""
