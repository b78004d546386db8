"""The visit: one site's evening, with its units, people, open question, calls and safety stop."""
