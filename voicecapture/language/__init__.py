"""What may be spoken and what it means: the grammar, its pronunciations and the phrases it yields."""
