"""The suite: five services, the sales desk, and the chassis they all stand on."""
