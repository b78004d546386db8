"""Calls: escalations with an owner, a ladder and a deadline of their own.

Severities and operator states are those of RFC 8632: an event *clears* the condition a call
was raised for, only a person *closes* it.
"""
