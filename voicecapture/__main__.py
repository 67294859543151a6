"""`python -m voicecapture`."""

from voicecapture.cli import main

main()
