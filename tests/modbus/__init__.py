"""The refrigerant sensor as a Modbus RTU server, and boards that ask it."""
