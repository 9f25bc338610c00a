// @ts-check
/** Opens the microphone as it is (nothing suppressed, no gain control: they eat steady tones) and puts the ear behind it. */

/** Why the microphone cannot be used, for the person at the bench. @param {unknown} err @returns {string} */
export function microphoneWords(err) {
  const name = err instanceof Error ? err.name : '';
  if (name === 'Insecure') return 'A browser gives the microphone only to a page on this computer or one opened with https. Open the page on the computer that serves it.';
  if (name === 'NotAllowedError') return 'The browser was told not to give the microphone to this page. Allow it beside the address, then try again.';
  if (name === 'NotFoundError') return 'No microphone was found. Plug one in, then try again.';
  if (name === 'NotReadableError') return 'The microphone is held by another program. Close that, then try again.';
  return 'The microphone could not be opened. Answers by key go on as before.';
}

/**
 * @param {(message: any) => void} on what the ear posts: {heard, token} or {level_db, dead}
 * @param {() => void} lost the microphone was unplugged
 * @returns {Promise<{send: (message: any) => void, close: () => void}>}
 */
export async function openMicrophone(on, lost) {
  if (!navigator.mediaDevices?.getUserMedia || !globalThis.AudioWorkletNode) throw Object.assign(new Error('no secure context'), { name: 'Insecure' });
  const stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
  const context = new AudioContext();
  const close = () => {
    for (const track of stream.getTracks()) track.stop();
    context.close();
  };
  try {
    await context.audioWorklet.addModule(new URL('./worklet.js', import.meta.url));
    await context.resume();
    const ear = new AudioWorkletNode(context, 'coppermend-ear', { numberOfOutputs: 1 });
    ear.port.onmessage = ({ data }) => on(data);
    context.createMediaStreamSource(stream).connect(ear);
    ear.connect(context.destination); // silent: the ear writes nothing; some browsers run only what leads somewhere
    for (const track of stream.getTracks()) track.addEventListener('ended', lost);
    return { send: (message) => ear.port.postMessage(message), close };
  } catch (err) {
    close();
    throw err;
  }
}
