"""What the plant is told: the values of one drive over Modbus TCP, OPC UA and MQTT, each with its quality and time."""
