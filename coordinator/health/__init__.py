"""What people should know of the joints before it becomes a fault."""
