"""The job folder: job file, control, design, buried things, the morning's files."""
