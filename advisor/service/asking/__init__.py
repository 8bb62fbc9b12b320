"""What comes in and goes out: headers, bodies, questions in an address, forms, tags, and their bounds."""
