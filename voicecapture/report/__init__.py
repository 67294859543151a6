"""The sheet for the farmer and the vet: what a season comes to, as text, HTML or PDF."""
