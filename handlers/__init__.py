"""What comes in from outside: each handler turns it into a fact for the desk."""
