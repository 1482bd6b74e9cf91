"""From a file to a clean picture: loading, linearising, finding the work's edge."""
