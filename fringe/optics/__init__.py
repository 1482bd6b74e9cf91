"""Physics: spheres in contact, lamps, views, spherometers, temperature and surface form."""
