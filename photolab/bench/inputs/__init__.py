"""From readings to estimates and what moves them: selection, corrections, links, spreads, who shares what."""
