//! Claims about agent.
