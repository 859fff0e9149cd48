"""The methods appendix: page one, parts, pictures, workbooks, and the notebooks that it runs."""
