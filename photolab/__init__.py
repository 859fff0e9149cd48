"""A methods workbench for bench tests of headlamp light sources."""

__version__ = "0.1.0"
