"""What the install record says: checks, torque, quality."""
