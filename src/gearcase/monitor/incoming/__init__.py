"""What comes in other than over the bus: readings and recordings by MQTT and HTTP, all through one room that accepts or refuses."""
