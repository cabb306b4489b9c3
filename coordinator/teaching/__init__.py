"""What people taught the arm: waypoints, sequences that visit them, and how both change. Pure."""
