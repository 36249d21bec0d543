"""The command line: a file a command, words to calls of the rooms below, no logic."""
