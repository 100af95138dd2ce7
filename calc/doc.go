// Package calc is the geometry of setting up a sliding table saw.
package calc
