"""What is asked of the link: the site file, service kinds and their tasks."""
