package reading

var reasonNames = [...]string{NoReason: "", Empty: "Empty", TooLong: "TooLong", NotPlain: "NotPlain", NotANumber: "NotANumber",
	TwoNumbers: "TwoNumbers", NegativeNotAllowed: "NegativeNotAllowed", WrongQuantity: "WrongQuantity", NotWhole: "NotWhole",
	Huge: "Huge", Negated: "Negated", NotExact: "NotExact", NoLeaf: "NoLeaf", NextLeaf: "NextLeaf", UnknownLeaf: "UnknownLeaf",
	Unclear: "Unclear", UnknownLabel: "UnknownLabel", SameLabel: "SameLabel", NoNumber: "NoNumber"}

// String returns the name of the reason, for tests and logs.
func (r Reason) String() string {
	if r < 0 || int(r) >= len(reasonNames) {
		return "Reason?"
	}
	return reasonNames[r]
}

var slipNames = [...]string{NoSlip: "", UnitSlip: "UnitSlip", SignSlip: "SignSlip", PointSlip: "PointSlip", TooLarge: "TooLarge",
	OtherPoint: "OtherPoint", TooFine: "TooFine"}

// String returns the name of the slip, for tests and logs.
func (s Slip) String() string {
	if s < 0 || int(s) >= len(slipNames) {
		return "Slip?"
	}
	return slipNames[s]
}

var statusNames = [...]string{Taken: "Taken", AskBack: "AskBack", Doubt: "Doubt", Refused: "Refused"}

// String returns the name of the status, for tests and logs.
func (s Status) String() string {
	if s < 0 || int(s) >= len(statusNames) {
		return "Status?"
	}
	return statusNames[s]
}
