"""What is put right in every recording, whatever its format, with a note for each repair."""
