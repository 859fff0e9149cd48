"""The only room that knows the bench folder."""
