"""A reader for each file format: FIT, TCX, GPX and CSV, each into a recording as it stands in the file."""
