// Reads value and verdict aloud with the device's own speech, when the person wishes it.
export function speak(words, wanted) {
  if (!wanted || !("speechSynthesis" in globalThis)) return;
  speechSynthesis.cancel();
  const said = new SpeechSynthesisUtterance(words.replace(/[-−](?=\d)/g, "minus "));
  said.lang = "en-US";
  speechSynthesis.speak(said);
}
