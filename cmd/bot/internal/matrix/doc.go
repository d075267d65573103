// Package matrix connects Matrix, encrypted rooms included: events in, messages
// out. It stands on mautrix for the protocol and for the ratchets of Olm and
// Megolm; the sync loop, the store of keys and the order in which things reach
// the disk are our own, because a message may neither be lost nor be said twice
// and no key may leave the process before it is kept.
//
// It translates, and decides nothing. What must not be believed is not even
// translated: a clear message in an encrypted room, words of another bot, what
// was said before the bot came, a device whose keys are not its own.
//
// # Where it may die
//
// At every step that is kept or leaves the process, and it goes on as if it had not:
// everything is heard and said once, in order, and can be read. Nothing leaves before
// what it depends on is kept; a sync answer is kept last, and comes again if it was
// not; the desk knows a message that it was given before by its name, the homeserver a
// post by its transaction, and we our own posts by what stands in them.
//
//	it died                                        it goes on with               test
//	----------------------------------------------------------------------------------------------
//	with a sync answer, nothing of it taken in     the same answer again         TestCrashHearing
//	a room's key read, not kept                    the same answer again         TestCrashHearing
//	a room's key kept, its message not heard       the same answer again         TestCrashHearing
//	the desk was given a message, nothing said     the same message, same name   TestCrashHearing
//	answered, the sync answer not kept             the answer's transaction      TestCrashHearing
//	a message without its key kept or not          the message waits             TestCrashLateKeys
//	that key kept, its message not heard           whatever waits, at the start  TestCrashLateKeys
//	its message heard, that it waits not dropped   the same message, same name   TestCrashLateKeys
//	its key asked for or not                       asks once more, or not        TestCrashLateKeys
//	somebody found no key of ours, we wrote or not the news, which is kept       TestCrashWaking
//	who came or left kept or not                   with it the room's key goes   TestCrashSharing
//	a one-time key of somebody claimed or not      another one                   TestCrashSharing
//	our room key made, shared or not               the same one, shared again    TestCrashSharing
//	our first message there left or not            its transaction               TestCrashSharing
//	our new one-time keys uploaded or not          the same ones, uploaded again TestCrashSharing
//	a post left, its answer lost                   looks first, then sends again TestCrashPosts
//	a post taken, the store does not know          what is kept of it            TestCrashPosts
//	its echo seen, kept or not                     the echo, or what was kept    TestCrashPosts
//	the homeserver lost it, before or after asking what is kept of it            TestCrashPosts
//	an edit left or not                            its transaction               TestCrashEdits
//	words, picture, file of a post: each left      the part that is missing      TestCrashFiles
//	a file uploaded, not sent                      uploads it once more          TestCrashFiles
//	a long post's file left, its message not       the message                   TestCrashLongPosts
//	invited, joined or not, the desk told or not   the invitation, or the join   TestCrashInvitations
//	a direct room made, known or not               the room, found by its mark   TestCrashDirectRooms
//	acted on a message, later it is taken back     the note that it was acted on TestCrashTakingBack
//	anywhere in bot matrix login                   the login, run again          TestCrashLogin
//	the same, and then bot serve                   a sentence that says so       TestCrashLoginThenServe
//	anywhere in bot matrix login --recover         the same, run again           TestCrashRecover
//	anywhere in bot matrix logout                  the same, run again           TestCrashLogout
//	a new token given, kept or not, used or not    the pair that is kept         TestCrashRefreshing
//	a fallback key made, uploaded or not           the same one, uploaded again  TestCrashFallbackKeys
//	with the homeserver, which forgets             looks first, then sends again TestOnceAcrossARestart
//
// # What it does not believe
//
//	somebody tries                                 what comes of it              test
//	----------------------------------------------------------------------------------------------
//	a clear message in an encrypted room           nothing; is told, once a day  TestWhatIsNotBelieved
//	encryption switched off by the room's state    it goes on encrypted          TestEncryptionStaysOn
//	a content of wrong types, or of 65 KB          nothing                       TestWhatIsNotBelieved
//	markup in names, labels and words              is shown as it stands         TestMentionsOnlyWhoIsMeant
//	markup and paths in names of files             are taken out                 TestHostileFiles
//	a mention in a name, or of the whole room      mentions nobody               TestMentionsOnlyWhoIsMeant
//	a name that looks like another's               is told with its id           TestNamesThatLookAlike
//	words of another bot, an emote, an edit        nothing                       TestWhatIsNotBelieved
//	too many requests                              is told, and waits            TestTooFast
//	words from before the bot came                 nothing                       TestNothingFromBefore
//	a time that its sender's server made up        ours is taken                 TestTimesAreNotBelieved
//	a ciphertext sent once more                    nothing                       TestWhatIsNotBelieved
//	the same, of a session of long ago             nothing; is told              TestNoReplayOfLongAgo
//	a swapped identity                             nothing; is told why          TestSwappedIdentity
//	a device whose keys are not its own            nothing; is told why          TestWhichDevices
//	somebody else's words in one's mouth           nothing; is told why          TestSomebodyElsesWords
//	to be told a room's key without being in it    nothing                       TestKeysAreGivenToNobodyElse
//	a third person in the direct room              a new room                    TestThirdInTheDirectRoom
//	a file larger than it says, or exchanged       nothing; is told              TestHostileFiles
//	a room that claims to go on with another       is left                       TestClaimedUpgrade
//	a flood of invitations                         30 rooms an hour              TestInviteFlood
//	a flood of messages without their key          500 of one person wait        TestLateFlood
//	a crowd, to wear limits down                   they hold                     TestCrowd
//	a look into the log                            no words, tokens or passwords TestTheLogKeepsQuiet
//
// Encryption is pure Go only with the build tag goolm; without it the package
// says so instead (absent.go).
package matrix
