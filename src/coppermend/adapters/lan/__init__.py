"""The bench on the local network: its addresses, its certificate, the devices that were let in, the code as a picture."""
