"""Nobody is led into harm: every fault of the room times every act, answered once."""
