"""What people read: templates and the one place that fills them."""
