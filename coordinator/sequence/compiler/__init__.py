"""Turn the models of a sequence into the nodes, barriers and rules of a plan."""
