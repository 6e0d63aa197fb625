"""What a person can ask of the record from a terminal."""
