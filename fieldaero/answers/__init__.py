"""The result of a test: its rows, words and cautions; claims, tunnel, known drag and races; several sessions pooled."""
