"""The live page: a plan that answers while its settings are changed, on this machine."""
