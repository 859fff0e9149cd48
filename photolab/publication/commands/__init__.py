"""What a person types: compare, defend, plan, rehearse, take, open."""
