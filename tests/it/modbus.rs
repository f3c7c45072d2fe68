//! Claims about modbus.
