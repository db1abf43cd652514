"""From run sheet and rides to the drag area of every lap: session, energy balance, closure, joint fit."""
