"""What units and their managers send, whatever the form: decoded, trusted, brought to the desk."""
