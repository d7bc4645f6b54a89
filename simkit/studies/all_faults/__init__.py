"""Every situation of the registry on one machine, on one page."""
