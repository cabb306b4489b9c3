"""New firmware for one joint, over the air (protocol/README.md, "Update")."""
