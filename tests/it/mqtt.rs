//! Claims about mqtt.
