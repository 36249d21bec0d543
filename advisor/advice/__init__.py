"""Zones become decisions: candidates, a choice, and the reasons in plain words."""
