// Reads value and verdict aloud with the device's own speech.
export function speak(words) {
  if (!("speechSynthesis" in globalThis)) return;
  speechSynthesis.cancel();
  const speech = new SpeechSynthesisUtterance(words.replace(/[-−](?=\d)/g, "minus "));
  speech.lang = "en-US";
  speechSynthesis.speak(speech);
}
