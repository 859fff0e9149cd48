"""The files of a bench folder, read and written: every fault at once, whole or not at all."""
