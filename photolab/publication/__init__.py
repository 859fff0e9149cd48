"""Words, tables, figures, notebooks and the methods appendix."""
