"""What is kept: results on disk, recordings read from open file formats, the clock."""
