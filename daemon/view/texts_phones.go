package view

import (
	"errors"
	"fmt"
	"net"
	"time"

	"meltwarden/control/guard"
)

// PhoneLabels are the words of the pages about phones, and of the command.
type PhoneLabels struct {
	Phones, PhonesWhy, PhonesHere, PhonesFail, PhonePlain string
	PhoneName, PhoneFor, AddPhone, ScanThis               string
	AddedUntil, OtherWays, OnNetwork, PublicWay           string
	PhoneColumn, PhoneState, PhoneMade, PhoneEnds         string
	PhoneSeen, Never, PutOut, NoPhones                    string
	PairTitle, PairWhy, PairNow, PairCode, PairElsewhere  string
	NotLetIn, ForPrograms, TooManyTries                   string
	PhoneExpired, PhonePutOut, WrongCode                  string
	AlarmsHere, NoConnection, PhonesListed                string
	PhonesLost, PhonesLostAct, PhonesLostMore, AllPhones  string
}

var phoneLabels = PhoneLabels{
	Phones: "Phones",
	PhonesWhy: "A phone that was let in sees everything, marks, takes notes, silences the sound for two minutes, or until something new calls, and switches everything off. " +
		"It enables and raises no heat, and works through no alarm: that is done at the bench. Its marks are kept with its name, and they do not count as somebody at the bench: press the pedal or the enable button within ten minutes, or heat goes off.",
	PhonesHere: "Phones are let in, and put out, on the bench's own computer only.",
	PhonesFail: "Which phones are let in can not be read or written now, so none is. For the heaters use ALL OFF or the emergency stop at the bench.",
	PhonePlain: "What is sent is not encrypted: whoever is in the same network, or listens to it, can read it and act as that phone until you put it out. " +
		"Use your own network only, and never let a router forward a port to this computer from the internet.",
	PhoneName: "Name of the phone", PhoneFor: "For how long", AddPhone: "Let a phone in",
	ScanThis:   "Point the camera of the phone %s here before %s. The code is good once.",
	AddedUntil: "It is let in until %s.",
	OtherWays:  "If that one can not be reached: the same at other addresses of this computer", OnNetwork: "network %s",
	PublicWay:   "This is no address of a network of your own: see that nobody reaches it from the internet.",
	PhoneColumn: "Phone", PhoneState: "State", PhoneMade: "Added", PhoneEnds: "Until", PhoneSeen: "Last seen",
	Never: "never", PutOut: "Put out", NoPhones: "No phone was let in yet.",
	PairTitle: "Let this phone in?",
	PairWhy: "It can then see the bench, mark what is done, silence the sound and switch everything off. It enables and raises no heat. " +
		"Wet or sticky hands and lock screens are slow: the emergency stop at the bench comes first.",
	PairNow: "Let it in", PairCode: "Code from the bench's own computer",
	PairElsewhere: "This is the bench's own computer, which needs no code. Open the address on the phone.",
	NotLetIn:      "This device is not let in. Let it in on the bench's own computer: page Phones, or meltwarden phone add.",
	PhoneExpired:  "The time of this phone is over. Let it in anew on the bench's own computer.",
	PhonePutOut:   "This phone was put out on the bench's own computer.",
	WrongCode:     "This code is wrong, was used already, or is older than ten minutes. Add the phone again on the bench's own computer.",
	PhonesListed:  "Every phone there ever was, the last first",
	ForPrograms:   " A program sends the bench file's token as a bearer token.",
	PhonesLost:    "all are out, so no ALL OFF from one",
	PhonesLostAct: "For the heaters use ALL OFF or the emergency stop at the bench.", AllPhones: "Phones",
	PhonesLostMore: "Why: %s.",
	AlarmsHere:     "Alarms are worked through on the bench's own computer.",
	NoConnection:   "no connection to the bench's computer: take the bench for hot",
	TooManyTries:   "Too many wrong codes or tokens came from there. Wait a little.",
}

// PhonesShut says why phones can not reach a program that listens so, and what to do.
func PhonesShut(listen string) string {
	if listen == "" {
		return "This program does not say where it listens, so no phone can be told."
	}
	open := "0.0.0.0:8420"
	if _, port, err := net.SplitHostPort(listen); err == nil {
		open = net.JoinHostPort("0.0.0.0", port)
	}
	return fmt.Sprintf("This program listens on %s, which only this computer reaches. To let phones in, write \"listen: %s\" under daemon in the bench file, "+
		"or start it with --listen %[2]s. It is then open to your network: each phone still needs a code from here. ", listen, open) + phoneLabels.PhonePlain
}

// PhonesLostCode is the code of PhonesLost; the guard has found nothing of the kind.
const PhonesLostCode = "phones-out"

// PhonesLost tells of a file of phones that was broken or can not be used. Where that is on
// this computer stands in the log only.
func PhonesLost(why error) Condition {
	said := why.Error()
	if e := (interface{ Said() string })(nil); errors.As(why, &e) {
		said = e.Said()
	}
	act, more := phoneLabels.PhonesLostAct, fmt.Sprintf(phoneLabels.PhonesLostMore, said)
	return Condition{
		Code: PhonesLostCode, Severity: guard.Warning.String(), Active: true, Title: phoneLabels.PhonesLost,
		Instruction: act + " " + more, Act: act, More: more, Where: phoneLabels.AllPhones, Status: status(guard.Condition{Active: true}), Stands: stands(true, false),
	}
}

// PhoneTime is when something was of a phone; zero was never.
func PhoneTime(t time.Time) string {
	if t.IsZero() {
		return phoneLabels.Never
	}
	return t.Local().Format("2006-01-02 15:04")
}
