"""The joint evaluation and what follows from it: ratios, heat, candela, beams."""
