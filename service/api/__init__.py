"""HTTP only: read a message, call the workflow, write a message."""
