"""From a file to a clean picture: decoding it, and undoing the tone curve of the camera."""
