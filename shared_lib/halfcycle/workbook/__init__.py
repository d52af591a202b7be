"""What single lessons solve and draw: one module a matter, and `page`, what their pages share."""
