"""What is printed: PDFs of facts that were worded elsewhere. No text of its own, no file, no clock."""
