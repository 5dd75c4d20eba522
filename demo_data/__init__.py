"""The made-up room of the demo: its log and the script that makes it."""
