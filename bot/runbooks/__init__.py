"""Runbook files: loading, checking and their published schema."""
