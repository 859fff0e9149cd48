"""What is asked of an evaluated bench: colour, a new meter, another protocol, what would overturn it."""
