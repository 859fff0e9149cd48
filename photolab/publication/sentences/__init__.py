"""Sentences and tables of results, by rule: nothing here reads a file or writes one."""
