"""The guided start of a scan day: what is to be known first, the microphone, and the voice check."""
