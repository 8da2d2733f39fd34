"""The ward's network: who this machine is there, its certificates, its secure port."""
