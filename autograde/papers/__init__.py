"""What leaves the instructor's desk: gradebook tables, training records, and certificates that anyone can verify."""
