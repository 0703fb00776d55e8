"""What comes in through a form or as JSON, read and checked; and what goes out as JSON."""
