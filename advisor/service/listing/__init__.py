"""What is loaded, as lists: packs, characters, moves."""
