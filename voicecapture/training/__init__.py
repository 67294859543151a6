"""How the listener's acoustic model is made. Not needed to use voicecapture."""
