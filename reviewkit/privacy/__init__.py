"""What must not be published, and how it is kept out."""
